"""The executable meaning against the encoded one; engine against engine."""
