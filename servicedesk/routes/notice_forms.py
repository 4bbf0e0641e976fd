from django import forms
from django.utils.translation import gettext_lazy as _

from servicedesk.routes.notice_models import ClientNotice


class NoticeForm(forms.Form):
    """A drafted message, read and changed by a person."""

    to = forms.EmailField(label=_("To"))
    subject = forms.CharField(label=_("Subject"), max_length=160)
    body = forms.CharField(label=_("Message"), max_length=4000, widget=forms.Textarea(attrs={"rows": 9}))

    @classmethod
    def drafted(cls, notice: ClientNotice) -> "NoticeForm":
        """The form of a notice, unbound; its fields carry the notice's key."""
        first = notice.to[0] if notice.to else ""
        return cls(prefix=str(notice.pk), initial={"to": first, "subject": notice.subject, "body": notice.body})
