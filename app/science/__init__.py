"""Pure computation: dataclasses in, dataclasses out. No framework, no database, no clock, no files."""
