"""The commands: one module each, loaded when called. Each names its click command `command`."""
