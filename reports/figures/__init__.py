"""The figures of the report, each from one forecast."""
