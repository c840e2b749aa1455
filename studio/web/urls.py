"""Addresses of the pages."""

from django.urls import path

from studio.web import (
    account,
    add_files,
    consents,
    fields,
    home,
    jobs,
    join,
    people,
    recordings,
    reports,
    results,
    session,
    sessions,
    signin,
    upload,
)

app_name = "web"

urlpatterns = [
    path("", home.home, name="home"),
    path("sign-in/", signin.SignIn.as_view(), name="sign-in"),
    path("sign-out/", signin.SignOut.as_view(), name="sign-out"),
    path("join/<str:key>/", join.join, name="join"),
    path("sessions/", sessions.session_list, name="sessions"),
    path("sessions/<uuid:session_id>/", session.session_page, name="session"),
    path("sessions/<uuid:session_id>/analyse/", session.analyse, name="session-analyse"),
    path("sessions/<uuid:session_id>/accept/", session.accept, name="session-accept"),
    path("sessions/<uuid:session_id>/bundle/", session.bundle, name="session-bundle"),
    path("sessions/<uuid:session_id>/files/", add_files.add_files, name="session-files"),
    path("recordings/<uuid:recording_id>/", recordings.recording_page, name="recording"),
    path("recordings/<uuid:recording_id>/cut/", recordings.cut, name="recording-cut"),
    path("recordings/<uuid:recording_id>/fields/", fields.fields_page, name="recording-fields"),
    path("upload/", upload.upload, name="upload"),
    path("jobs/", jobs.job_list, name="jobs"),
    path("jobs/<uuid:job_id>/", jobs.job_page, name="job"),
    path("results/<uuid:analysis_id>/", results.result_page, name="result"),
    path("results/<uuid:analysis_id>/report/", results.issue, name="result-report"),
    path("reports/<uuid:report_id>/pdf/", reports.pdf, name="report"),
    path("standings/", home.standings, name="standings"),
    path("people/", people.people, name="people"),
    path("people/links/<uuid:invitation_id>/take-back/", people.take_back, name="invitation-take-back"),
    path("people/<uuid:membership_id>/", people.member, name="member"),
    path("people/<uuid:membership_id>/remove/", people.remove, name="member-remove"),
    path("people/<uuid:membership_id>/password-link/", people.password_link, name="member-password-link"),
    path("consents/", consents.consents, name="consents"),
    path("consents/<uuid:consent_id>/withdraw/", consents.withdraw, name="consent-withdraw"),
    path("riders/<uuid:rider_id>/consents/", consents.rider_consents, name="rider-consents"),
    path("account/", account.account, name="account"),
    path("account/sign-out-everywhere/", account.sign_out_of_all, name="sign-out-everywhere"),
    path("account/tokens/<uuid:token_id>/revoke/", account.revoke, name="token-revoke"),
]
