"""Settings searched, judged on rails held out, written as a file."""
