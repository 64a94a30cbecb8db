"""Every address, by noun."""

from django.urls import include, path

from units.views import account, bench, catalogue, method

# what a visitor reads
catalogue_urls = [
    path("", catalogue.catalogue, name="catalogue"),
    path("method/", method.method, name="method"),
]

# /bench/
bench_urls = [
    path("", bench.home, name="bench-home"),
    path("open/", bench.open_bench, name="bench-open"),
    path("choose/<uuid:bench_id>/", bench.choose, name="bench-choose"),
    path("people/", bench.people, name="people"),
    path("people/<int:membership_id>/dismiss/", bench.dismiss, name="person-dismiss"),
]

# /account/
account_urls = [
    path("sign-in/", account.sign_in, name="sign-in"),
    path("sign-out/", account.sign_out, name="sign-out"),
    path("password/", account.PasswordChange.as_view(), name="password-change"),
    path("display/", account.display, name="display"),
]

urlpatterns = [
    path("", include(catalogue_urls)),
    path("bench/", include(bench_urls)),
    path("account/", include(account_urls)),
]

handler400 = "units.problems.bad_request"
handler403 = "units.problems.forbidden"
handler404 = "units.problems.not_found"
handler500 = "units.problems.server_error"
