"""The fretting hand: its measures, what a bend takes, and a fingering with its costs."""
