"""Builds the tables that rest on records: museum records, trade descriptions, and what people wrote."""
