"""The catalogue of diagnostic codes: what each means, with a broken sample. Data only; of ours it imports the form of messages."""

from bandproof.text.codes.entry import Code, Reads
from bandproof.text.codes.table import CODES

__all__ = ["CODES", "Code", "Reads"]
