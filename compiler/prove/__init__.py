"""What a spec expects, measured: readings over real motion, and every `expect` over the whole range of motion."""
