"""Tarebook: the book beside the scale. Importable without any package installed."""

NAME = "Tarebook"
__version__ = "0.1.0"
