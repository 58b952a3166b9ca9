"""*Can I date it myself?* Rounds of practice: bets on a piece before each clue, and what they were worth."""
