"""What the language has several kinds of, one record for each kind: everything that is known of a kind stands there."""
