"""The command line: reads arguments, calls one function of `steps`, prints. No physics, no drawing."""
