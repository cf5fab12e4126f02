"""The line: hand-over record, shot log, statistics of good and bad, and which cause explains the readings."""
