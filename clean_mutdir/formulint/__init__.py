"""Formulas of water-borne paint as files in git: checked, computed, compared."""

__version__ = "0.1.0"
