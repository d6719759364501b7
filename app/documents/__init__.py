"""Papers: context, template, rendering."""
