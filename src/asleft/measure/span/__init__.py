"""The span trial: readings over a gauge piece to scale, growth, shear, changes and proof."""
