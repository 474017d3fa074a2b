"""Life models: from lives to shape, scale and their uncertainty."""
