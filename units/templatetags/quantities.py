"""Display of quantities in templates."""

from django import template

register = template.Library()
