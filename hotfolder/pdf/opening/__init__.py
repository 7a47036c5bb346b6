"""Opens what arrives, PDF or picture, without trusting it, and makes pictures into pages."""
