"""A formula handed on: the page to publish, Markdown, plain text, the method card."""
