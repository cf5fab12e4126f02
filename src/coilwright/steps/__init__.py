"""One function per verb of the job: what the command line, the bench and notebooks call. No printing, no drawing."""
