"""Plan to what people hold: map, itinerary, GPX, calendar. Every foreign string goes through `safe`."""
