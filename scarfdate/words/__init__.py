"""What people write, read without any table: dates, lengths, claims."""
