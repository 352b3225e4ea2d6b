"""The version of the library, the only place that has it; the build reads it here."""

__version__ = "0.1.0"
