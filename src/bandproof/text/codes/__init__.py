"""The catalogue of diagnostic codes: what each means, with a broken sample. Data only; imports nothing of ours."""

from bandproof.text.codes.entry import Code, Reads
from bandproof.text.codes.table import CODES

__all__ = ["CODES", "Code", "Reads"]
