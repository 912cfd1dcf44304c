"""`python -m bandproof` is the command line."""

from __future__ import annotations

from bandproof.cli import main

if __name__ == "__main__":
    main()
