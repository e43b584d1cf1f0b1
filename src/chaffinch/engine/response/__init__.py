"""Loss against load: curves of one combine and of many."""
