"""The fretting hand: its measures, what a bend takes, and fingerings with their costs."""
