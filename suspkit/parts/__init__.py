"""One part each: wire, spring, stack, damper, shock, linkage."""
