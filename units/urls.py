"""Every address, by noun."""

from django.urls import include, path

from units.editions.policy import carrying_style
from units.views import (
    account,
    archive,
    arrivals,
    bench,
    bulk,
    catalogue,
    collections,
    colocation,
    compare,
    exports,
    health,
    instruments,
    invitation,
    method,
    people,
    plan,
    published,
    rereduction,
    reviews,
    room,
    second_step,
    shares,
    tokens,
    unit,
    unit_edit,
)

# what a visitor reads
catalogue_urls = [
    path("", catalogue.catalogue, name="catalogue"),
    path("compare/", compare.show, name="compare"),
    path("charts/<slug:name>.<slug:form>", compare.chart, name="chart"),
    path("collections/", collections.keep, name="collection-keep"),
    path("collections/<uuid:collection_id>/", collections.show, name="collection"),
    path("collections/<uuid:collection_id>/drop/", collections.drop, name="collection-drop"),
    path("method/", method.method, name="method"),
    path("plan/", plan.show, name="plan"),
]

# /bench/
bench_urls = [
    path("", bench.home, name="bench-home"),
    path("open/", bench.open_bench, name="bench-open"),
    path("choose/<uuid:bench_id>/", bench.choose, name="bench-choose"),
    path("archive/", archive.show, name="bench-archive"),
    path("archive/download/", archive.download, name="bench-download"),
    path("exports/begin/", exports.begin, name="export-begin"),
    path("exports/<uuid:job_id>/file/", exports.file, name="export-file"),
    path("arrivals/new/", arrivals.new, name="arrival-new"),
    path("arrivals/<uuid:job_id>/", arrivals.show, name="arrival"),
    path("arrivals/<uuid:job_id>/drop/", arrivals.drop, name="arrival-drop"),
    path("archive/delete/", archive.delete, name="bench-delete"),
    path("people/", people.people, name="people"),
    path("people/<int:membership_id>/dismiss/", people.dismiss, name="person-dismiss"),
    path("people/invite/", people.invite, name="invite"),
    path("people/invitations/<uuid:invitation_id>/revoke/", people.revoke, name="invitation-revoke"),
    path("people/second-step/", people.require_second_step, name="second-step-require"),
    path("people/hand-over/", people.hand_over, name="hand-over"),
    path("people/offers/<uuid:handover_id>/withdraw/", people.withdraw_offer, name="offer-withdraw"),
    path("people/offers/<uuid:handover_id>/answer/", invitation.answer_offer, name="offer-answer"),
    path("tokens/", tokens.listing, name="tokens"),
    path("tokens/<uuid:token_id>/revoke/", tokens.revoke, name="token-revoke"),
]

# /units/
unit_urls = [
    path("", unit_edit.listing, name="units"),
    path("new/", unit_edit.new, name="unit-new"),
    path("import/", bulk.import_units, name="units-import"),
    path("units.csv", bulk.export_units, {"form": "csv"}, name="units-export"),
    path("units.xlsx", bulk.export_units, {"form": "xlsx"}, name="units-export-workbook"),
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
    path("together/", colocation.show, name="colocation"),
    path("<uuid:instrument_id>/", instruments.show, name="instrument"),
    path("<uuid:instrument_id>/edit/", instruments.edit, name="instrument-edit"),
    path("<uuid:instrument_id>/calibrate/", instruments.calibrate, name="instrument-calibrate"),
    path("certificates/<uuid:calibration_id>/", instruments.certificate, name="certificate"),
]

# /again/: results made from what no longer holds
rereduction_urls = [
    path("", rereduction.listing, name="rereductions"),
    path("begin/", rereduction.begin, name="rereduction-begin"),
    path("<uuid:job_id>/", rereduction.show, name="rereduction"),
]

# /reviews/
review_urls = [
    path("", reviews.listing, name="reviews"),
    path("new/", reviews.new, name="review-new"),
    path("<uuid:review_id>/", reviews.edit, name="review"),
    path("<uuid:review_id>/points/", reviews.choose, name="review-points"),
    path("<uuid:review_id>/newer/", reviews.take_newer, name="review-newer"),
    path("<uuid:review_id>/answers/", reviews.answer, name="review-answer"),
    path("<uuid:review_id>/contacts/", reviews.contact, name="review-contact"),
    path("<uuid:review_id>/preview/", carrying_style(reviews.preview), name="review-preview"),
    path("<uuid:review_id>/publish/", reviews.publish, name="review-publish"),
    path("<uuid:review_id>/withdraw/", reviews.withdraw, name="review-withdraw"),
    path("<uuid:review_id>/share/", shares.share, name="review-share"),
    path("shares/<uuid:link_id>/revoke/", shares.revoke, name="share-revoke"),
    path("answers/<uuid:comment_id>/", shares.decide, name="comment-decide"),
]

# /published/: the same for all, frozen
published_urls = [
    path("", published.listing, name="published"),
    path("feed.atom", published.feed, name="feed"),
    path("data.zip", published.everything, name="data-set"),
    path("<slug:slug>/", carrying_style(published.latest), name="edition"),
    path("<slug:slug>/<int:number>/", carrying_style(published.numbered), name="edition-numbered"),
    path("<slug:slug>/<int:number>/edition.json", published.document, name="edition-json"),
    path("<slug:slug>/<int:number>/edition.html", published.file, name="edition-file"),
    path("<slug:slug>/<int:number>/points.csv", published.table, name="edition-csv"),
    path("<slug:slug>/<int:number>/raw/<str:sha256>.csv", published.raw_table, name="edition-raw"),
    path("<slug:slug>/<int:number>/charts/<slug:name>.<slug:form>", published.chart, name="edition-chart"),
    path("<slug:slug>/<int:number>/embed/<slug:name>/", carrying_style(published.embed), name="edition-embed"),
]

# /shared/: a draft, by the secret of its link
shared_urls = [
    path("<str:secret>/", carrying_style(shares.read), name="shared"),
    path("<str:secret>/answer/", shares.reply, name="shared-reply"),
]

# /account/
account_urls = [
    path("sign-in/", account.sign_in, name="sign-in"),
    path("sign-in/code/", second_step.sign_in_code, name="sign-in-code"),
    path("second-step/", second_step.show, name="second-step"),
    path("second-step/begin/", second_step.begin, name="second-step-begin"),
    path("second-step/confirm/", second_step.codes, {"asked_by": "confirm_form"}, name="second-step-confirm"),
    path("second-step/codes/", second_step.codes, {"asked_by": "codes_form"}, name="second-step-codes"),
    path("second-step/off/", second_step.off, name="second-step-off"),
    path("sign-out/", account.sign_out, name="sign-out"),
    path("password/", account.PasswordChange.as_view(), name="password-change"),
    path("display/", account.display, name="display"),
]

urlpatterns = [
    path("published/", include(published_urls)),  # first: most asked for, and the same for all
    path("", include(catalogue_urls)),
    path("bench/", include(bench_urls)),
    path("units/", include(unit_urls)),
    path("sessions/", include("tests_app.urls")),
    path("rooms/", include(room_urls)),
    path("instruments/", include(instrument_urls)),
    path("again/", include(rereduction_urls)),
    path("reviews/", include(review_urls)),
    path("shared/", include(shared_urls)),
    path("invited/<str:invitation_secret>/", invitation.show, name="invitation"),
    path("sitemap.xml", published.sitemap, name="sitemap"),
    path("healthz/", health.ready, name="health"),
    path("healthz/live/", health.live, name="health-live"),
    path("healthz/ready/", health.ready, name="health-ready"),
    path("metrics", health.metrics, name="metrics"),
    path("robots.txt", published.robots, name="robots"),
    path("account/", include(account_urls)),
    path("api/", include("units.api.urls")),
]

handler400 = "units.problems.bad_request"
handler403 = "units.problems.forbidden"
handler404 = "units.problems.not_found"
handler500 = "units.problems.server_error"
