"""Files in: one module a format, text to domain objects, with file, line and key in every error."""
