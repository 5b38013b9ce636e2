"""The command line: one file per verb, thin over the library."""
