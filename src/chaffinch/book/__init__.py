"""One function per thing a person does; the only door for the command line, the web and notebooks."""
