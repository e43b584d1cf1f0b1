"""What is printed: cab card, check sheet, reports; and the drawings that desk and paper share."""
