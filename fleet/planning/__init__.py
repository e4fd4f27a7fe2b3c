"""Many works, one tool room: which kit goes to which work and when. Facts in, plan out."""
