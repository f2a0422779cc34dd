"""A drop: permitted, armed, released, received, recovered."""
