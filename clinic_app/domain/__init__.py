"""The record and what can be said about it without arithmetic, store or screen."""
