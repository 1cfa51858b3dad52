"""The program around the risk-model library: the record, the reviews, the window and the command line."""

__version__ = "0.1.0"
