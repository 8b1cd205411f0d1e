"""The hob's edges swept through a blank: the whole field, and single flanks."""
