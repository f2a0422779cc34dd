"""What a person sees: pictures, windows, reports."""
