"""What is worked out about a lick from its timeline: difficulty, key and box, figures and a fingerprint of its phrase."""
