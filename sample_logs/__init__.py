"""The sample logs of an invented packing co-operative, dirt and all."""
