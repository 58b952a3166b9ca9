"""What open museum records say: read, counted, and turned into tables with basis museum."""
