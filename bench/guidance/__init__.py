"""What a driver can carry: braking points with a stated confidence, by rail and by route.

Many stops, over a stated spread of rail, equipment and reaction, become one line: brake so much
earlier. Beside it: how often that fails, what it costs, and what it hangs on.
"""
