"""What the command line is made of beside its verbs: tables on the screen, and words about wrong commands."""
