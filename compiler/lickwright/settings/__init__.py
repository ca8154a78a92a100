"""The table of a lick's fields, how they are read and resolved, and what a project requires of every lick."""
