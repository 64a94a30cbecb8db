"""How forms look: our templates for fields and forms, Django's for widgets."""

from django.forms.renderers import TemplatesSetting


class Renderer(TemplatesSetting):
    """Renders `{{ form }}` and `{{ field.as_field_group }}` in the house's markup."""

    form_template_name = "units/form/form.html"
    formset_template_name = "units/form/formset.html"
    field_template_name = "units/form/field.html"
