"""Papers: batch sheet, cost sheet and declaration, as pages and as PDFs."""
