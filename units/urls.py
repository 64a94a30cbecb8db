"""Every address, by noun."""

from django.urls import include, path

from units.views import account, bench, catalogue, compare, instruments, method, room, unit, unit_edit

# what a visitor reads
catalogue_urls = [
    path("", catalogue.catalogue, name="catalogue"),
    path("compare/", compare.show, name="compare"),
    path("charts/<slug:name>.<slug:form>", compare.chart, name="chart"),
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

# /units/
unit_urls = [
    path("", unit_edit.listing, name="units"),
    path("new/", unit_edit.new, name="unit-new"),
    path("<uuid:unit_id>/", unit.show, name="unit"),
    path("<uuid:unit_id>/edit/", unit_edit.edit, name="unit-edit"),
]

# /rooms/
room_urls = [
    path("", room.listing, name="rooms"),
    path("new/", room.new, name="room-new"),
    path("<uuid:room_id>/", room.show, name="room"),
    path("<uuid:room_id>/edit/", room.edit, name="room-edit"),
    path("<uuid:room_id>/values/new/", room.new_value, name="room-value-new"),
    path("<uuid:room_id>/take/<uuid:reduction_id>/", room.take_characterisation, name="room-take"),
]

# /instruments/
instrument_urls = [
    path("", instruments.listing, name="instruments"),
    path("new/", instruments.new, name="instrument-new"),
    path("<uuid:instrument_id>/", instruments.show, name="instrument"),
    path("<uuid:instrument_id>/edit/", instruments.edit, name="instrument-edit"),
    path("<uuid:instrument_id>/calibrate/", instruments.calibrate, name="instrument-calibrate"),
    path("certificates/<uuid:calibration_id>/", instruments.certificate, name="certificate"),
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
    path("units/", include(unit_urls)),
    path("sessions/", include("tests_app.urls")),
    path("rooms/", include(room_urls)),
    path("instruments/", include(instrument_urls)),
    path("account/", include(account_urls)),
]

handler400 = "units.problems.bad_request"
handler403 = "units.problems.forbidden"
handler404 = "units.problems.not_found"
handler500 = "units.problems.server_error"
