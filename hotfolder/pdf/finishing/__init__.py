"""Finishes a poster: printer's marks around it, and the seal of PDF/X-4."""
