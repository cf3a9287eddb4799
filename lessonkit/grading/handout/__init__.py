"""Handing out: what each student gets."""
