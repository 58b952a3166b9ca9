"""How do I learn it? The notebooks in their order, and as pages for reading without Python."""
