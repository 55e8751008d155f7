"""Foamwright: drafted outlines become proven cut files for foam and fabric."""

__version__ = "0.1.0"
