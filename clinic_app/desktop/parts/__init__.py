"""The pieces every page is made of."""
