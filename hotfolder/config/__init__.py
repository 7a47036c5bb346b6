"""Reads the config file into a checked studio, and says every mistake in a sentence."""
