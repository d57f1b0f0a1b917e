"""Wave model: unsteady one-dimensional compressible flow through the whole intake."""
