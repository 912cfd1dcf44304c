"""How long the engines take, compared in one interleaved run."""
