"""Colour: ICC transforms, printing conditions, and how far two colours lie apart."""
