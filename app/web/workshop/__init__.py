"""The workshop: settings, scales, packaging, backups."""
