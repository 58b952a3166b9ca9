"""The card for the pocket: whole points, fitted to the exact answer, on one printed page."""
