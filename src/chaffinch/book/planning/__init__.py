"""Before the season or the stop: what a kit can see, and the cards to take along."""
