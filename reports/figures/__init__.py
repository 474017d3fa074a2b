"""The figures of the report."""
