"""One module a command, each with `body(args) -> exit code`. Imported by the command line on need."""
