"""Bad input of every sort either loads or is refused with diagnostics; nothing else escapes."""
