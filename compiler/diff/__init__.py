"""What a change does: facts first, by declared identity, then judgement, then the forms that people and tools read."""
