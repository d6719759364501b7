"""Drawings that pages and papers share; one module for each."""
