"""Consumables inventory and reorder forecaster for direct-to-garment print shops."""

__version__ = "0.1.0"
