"""The coupled shot: the field heats the part, the heat changes the field, the source follows, in time."""
