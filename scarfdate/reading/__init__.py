"""What a person noted, as values: cells, labels, medium texts, scarves, files."""
