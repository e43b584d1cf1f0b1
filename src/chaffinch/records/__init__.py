"""What a person observed or decided: frozen dataclasses, no arithmetic, no SQL."""
