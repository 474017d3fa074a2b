"""Wear models: from readings to rates and hours to the limit."""
