"""Files of any length, dated in bounded memory."""
