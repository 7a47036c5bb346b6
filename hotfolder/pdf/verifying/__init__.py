"""Reads the finished file again with other code than wrote it, and compares its picture with the artwork."""
