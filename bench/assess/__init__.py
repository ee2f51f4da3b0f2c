"""An acceptance sheet over a programme of stops: indicative, not an approval."""
