"""What a dealer's own sold records teach."""
