"""Changes a press needs in how a page lies on its sheet: turned, brought to size, with more art around it."""
