"""The shipped library, read only: its materials, where values come from, what rests on memory, what was left out."""
