"""Values of good parts and units: what a reading is compared with. Pure."""
