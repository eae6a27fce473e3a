"""Files from people to model values: trips, vans, parties, firms, way-points. Validated here, once."""
