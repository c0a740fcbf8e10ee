"""The farm in a browser, served on this machine: a second thin edge beside the command line."""
