"""An invented endoscopy unit: no real patient, no real hospital."""
