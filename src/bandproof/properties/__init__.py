"""What is claimed of an arrangement: the property shapes, their files, their meaning on a finite run."""
