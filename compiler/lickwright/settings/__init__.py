"""The table of a lick's fields, how their values are resolved, and what a project asks of every lick."""
