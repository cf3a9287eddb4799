"""Copper: circuits of any kind, with no word of heating or cooling in them."""
