CREATE TABLE alembic_version (
    version_num VARCHAR(32) NOT NULL,
    CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
CREATE TABLE alert_events (
    id INTEGER NOT NULL,
    alert INTEGER NOT NULL,
    time DATETIME NOT NULL,
    what VARCHAR(16) NOT NULL,
    who VARCHAR(254) NOT NULL,
    note TEXT NOT NULL,
    PRIMARY KEY (id),
    FOREIGN KEY(alert) REFERENCES alerts (id) ON DELETE CASCADE
);
CREATE TABLE alerts (
    id INTEGER NOT NULL,
    site VARCHAR(40) NOT NULL,
    code VARCHAR(48) NOT NULL,
    state VARCHAR(16) NOT NULL,
    severity VARCHAR(8) NOT NULL,
    headline TEXT NOT NULL,
    finding JSON NOT NULL,
    episode INTEGER NOT NULL,
    seen_since DATETIME,
    gone_since DATETIME,
    opened DATETIME,
    resolved DATETIME,
    snoozed_until DATETIME,
    changed DATETIME NOT NULL,
    PRIMARY KEY (id),
    UNIQUE (site, code),
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE
);
CREATE TABLE audit (
    id INTEGER NOT NULL,
    time DATETIME NOT NULL,
    who VARCHAR(254) NOT NULL,
    role VARCHAR(16) NOT NULL,
    action VARCHAR(48) NOT NULL,
    site VARCHAR(40),
    address VARCHAR(64) NOT NULL,
    detail JSON NOT NULL,
    PRIMARY KEY (id)
);
CREATE TABLE calendar_feeds (
    person INTEGER NOT NULL,
    hash VARCHAR(64) NOT NULL,
    with_contact BOOLEAN NOT NULL,
    made DATETIME NOT NULL,
    used DATETIME,
    PRIMARY KEY (person),
    FOREIGN KEY(person) REFERENCES people (id) ON DELETE CASCADE,
    UNIQUE (hash)
);
CREATE TABLE check_changes (
    seq INTEGER NOT NULL,
    id VARCHAR(36) NOT NULL,
    sheet INTEGER NOT NULL,
    item VARCHAR(32) NOT NULL,
    field VARCHAR(40) NOT NULL,
    value TEXT NOT NULL,
    who VARCHAR(254) NOT NULL,
    typed DATETIME NOT NULL,
    received DATETIME NOT NULL,
    PRIMARY KEY (seq),
    UNIQUE (id),
    FOREIGN KEY(sheet) REFERENCES check_sheets (id) ON DELETE CASCADE
);
CREATE TABLE check_sheets (
    id INTEGER NOT NULL,
    site VARCHAR(40) NOT NULL,
    kind VARCHAR(16) NOT NULL,
    period VARCHAR(8) NOT NULL,
    created DATETIME NOT NULL,
    work INTEGER,
    signed DATETIME,
    items JSON,
    PRIMARY KEY (id),
    UNIQUE (site, kind, period),
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE,
    FOREIGN KEY(work) REFERENCES works (id) ON DELETE SET NULL
);
CREATE TABLE consents (
    id INTEGER NOT NULL,
    site VARCHAR(40) NOT NULL,
    purpose VARCHAR(32) NOT NULL,
    given BOOLEAN NOT NULL,
    who VARCHAR(254) NOT NULL,
    time DATETIME NOT NULL,
    words TEXT NOT NULL,
    PRIMARY KEY (id),
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE
);
CREATE TABLE device_tokens (
    id VARCHAR(32) NOT NULL,
    hash VARCHAR(64) NOT NULL,
    name VARCHAR(120) NOT NULL,
    purpose VARCHAR(16) NOT NULL,
    site VARCHAR(40),
    created DATETIME NOT NULL,
    expires DATETIME NOT NULL,
    used DATETIME,
    revoked DATETIME,
    PRIMARY KEY (id),
    UNIQUE (hash),
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE
);
CREATE TABLE fact_chunks (
    site VARCHAR(40) NOT NULL,
    kind VARCHAR(16) NOT NULL,
    month VARCHAR(7) NOT NULL,
    payload BLOB NOT NULL,
    PRIMARY KEY (site, kind, month),
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE
);
CREATE TABLE fact_days (
    site VARCHAR(40) NOT NULL,
    day DATE NOT NULL,
    fingerprint VARCHAR(32) NOT NULL,
    PRIMARY KEY (site, day),
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE
);
CREATE TABLE factors (
    id VARCHAR(32) NOT NULL,
    person INTEGER NOT NULL,
    kind VARCHAR(16) NOT NULL,
    name VARCHAR(80) NOT NULL,
    secret TEXT NOT NULL,
    credential VARCHAR(1400),
    counter BIGINT NOT NULL,
    created DATETIME NOT NULL,
    used DATETIME,
    PRIMARY KEY (id),
    FOREIGN KEY(person) REFERENCES people (id) ON DELETE CASCADE,
    UNIQUE (credential)
);
CREATE TABLE failed_sign_ins (
    "key" VARCHAR(64) NOT NULL,
    count INTEGER NOT NULL,
    last DATETIME NOT NULL,
    PRIMARY KEY ("key")
);
CREATE TABLE file_imports (
    id INTEGER NOT NULL,
    site VARCHAR(40) NOT NULL,
    time DATETIME NOT NULL,
    who TEXT NOT NULL,
    name TEXT NOT NULL,
    readings INTEGER NOT NULL,
    replaced INTEGER NOT NULL,
    first BIGINT,
    last BIGINT,
    after_files BOOLEAN NOT NULL,
    serials TEXT NOT NULL,
    PRIMARY KEY (id),
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE
);
CREATE TABLE firm (
    id INTEGER NOT NULL,
    name TEXT NOT NULL,
    contact TEXT NOT NULL,
    latitude FLOAT,
    longitude FLOAT,
    logo BLOB,
    logo_kind VARCHAR(32) NOT NULL,
    changed DATETIME NOT NULL,
    changed_by VARCHAR(254) NOT NULL,
    PRIMARY KEY (id)
);
CREATE TABLE fleet_summaries (
    site VARCHAR(40) NOT NULL,
    good_until DATETIME NOT NULL,
    verdict VARCHAR(16) NOT NULL,
    visit VARCHAR(8) NOT NULL,
    silent BOOLEAN NOT NULL,
    settling BOOLEAN NOT NULL,
    free BOOLEAN NOT NULL,
    dealt BOOLEAN NOT NULL,
    waiting BOOLEAN NOT NULL,
    tier SMALLINT NOT NULL,
    lost FLOAT NOT NULL,
    sure FLOAT NOT NULL,
    cost FLOAT NOT NULL,
    since VARCHAR(10) NOT NULL,
    efficiency FLOAT NOT NULL,
    heard BIGINT NOT NULL,
    name TEXT NOT NULL,
    no_area BOOLEAN NOT NULL,
    area TEXT NOT NULL,
    currency VARCHAR(3),
    money FLOAT NOT NULL,
    search TEXT NOT NULL,
    failed TEXT,
    brief BLOB,
    winter BLOB,
    PRIMARY KEY (site),
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE
);
CREATE TABLE forecasts (
    owner VARCHAR(32) NOT NULL,
    source TEXT NOT NULL,
    tried DATETIME NOT NULL,
    problem TEXT NOT NULL,
    fetched DATETIME,
    until DATETIME,
    text TEXT NOT NULL,
    outlook JSON,
    PRIMARY KEY (owner)
);
CREATE TABLE handlings (
    site VARCHAR(40) NOT NULL,
    code VARCHAR(48) NOT NULL,
    state VARCHAR(16) NOT NULL,
    severity VARCHAR(8) NOT NULL,
    who VARCHAR(254) NOT NULL,
    ends DATETIME,
    reason TEXT NOT NULL,
    decided_by VARCHAR(254) NOT NULL,
    decided DATETIME NOT NULL,
    work INTEGER,
    PRIMARY KEY (site, code),
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE,
    FOREIGN KEY(work) REFERENCES works (id) ON DELETE CASCADE
);
CREATE TABLE home_links (
    id VARCHAR(32) NOT NULL,
    site VARCHAR(40) NOT NULL,
    made_by VARCHAR(254) NOT NULL,
    created DATETIME NOT NULL,
    expires DATETIME NOT NULL,
    revoked DATETIME,
    PRIMARY KEY (id),
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE
);
CREATE TABLE invitations (
    hash VARCHAR(64) NOT NULL,
    kind VARCHAR(16) NOT NULL,
    person INTEGER,
    expires DATETIME NOT NULL,
    PRIMARY KEY (hash),
    FOREIGN KEY(person) REFERENCES people (id) ON DELETE CASCADE
);
CREATE TABLE job_runs (
    id INTEGER NOT NULL,
    kind VARCHAR(16) NOT NULL,
    site VARCHAR(40) NOT NULL,
    due VARCHAR(16) NOT NULL,
    state VARCHAR(8) NOT NULL,
    worker VARCHAR(80) NOT NULL,
    attempts INTEGER NOT NULL,
    started DATETIME NOT NULL,
    beat DATETIME NOT NULL,
    ended DATETIME,
    told TEXT NOT NULL,
    PRIMARY KEY (id),
    UNIQUE (kind, site, due)
);
CREATE TABLE kept_results (
    site VARCHAR(40) NOT NULL,
    first DATE NOT NULL,
    last DATE NOT NULL,
    fingerprint VARCHAR(32) NOT NULL,
    made DATETIME NOT NULL,
    rolling BOOLEAN NOT NULL,
    payload BLOB NOT NULL,
    PRIMARY KEY (site, first, last),
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE
);
CREATE TABLE live_states (
    site VARCHAR(40) NOT NULL,
    name TEXT NOT NULL,
    updated DATETIME NOT NULL,
    heard BIGINT,
    state VARCHAR(16) NOT NULL,
    worked BIGINT,
    since BIGINT,
    plant BLOB NOT NULL,
    newest BLOB NOT NULL,
    PRIMARY KEY (site),
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE
);
CREATE TABLE maintenance (
    id INTEGER NOT NULL,
    site VARCHAR(40) NOT NULL,
    start DATETIME NOT NULL,
    "end" DATETIME NOT NULL,
    reason TEXT NOT NULL,
    who VARCHAR(254) NOT NULL,
    PRIMARY KEY (id),
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE
);
CREATE TABLE notices (
    id INTEGER NOT NULL,
    "key" VARCHAR(200) NOT NULL,
    kind VARCHAR(8) NOT NULL,
    site VARCHAR(40),
    receiver TEXT NOT NULL,
    subject TEXT NOT NULL,
    body TEXT NOT NULL,
    state VARCHAR(8) NOT NULL,
    attempts INTEGER NOT NULL,
    not_before DATETIME NOT NULL,
    created DATETIME NOT NULL,
    sent DATETIME,
    error TEXT NOT NULL,
    PRIMARY KEY (id),
    UNIQUE ("key"),
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE
);
CREATE TABLE papers (
    site VARCHAR(40) NOT NULL,
    kind VARCHAR(16) NOT NULL,
    period VARCHAR(16) NOT NULL,
    made DATETIME NOT NULL,
    contents JSON NOT NULL,
    PRIMARY KEY (site, kind, period),
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE
);
CREATE TABLE people (
    id INTEGER NOT NULL,
    email VARCHAR(254) NOT NULL,
    name VARCHAR(120) NOT NULL,
    role VARCHAR(16) NOT NULL,
    password TEXT,
    active BOOLEAN NOT NULL,
    notices BOOLEAN NOT NULL,
    created DATETIME NOT NULL,
    last_in DATETIME,
    PRIMARY KEY (id),
    UNIQUE (email)
);
CREATE TABLE people_sites (
    person INTEGER NOT NULL,
    site VARCHAR(40) NOT NULL,
    PRIMARY KEY (person, site),
    FOREIGN KEY(person) REFERENCES people (id) ON DELETE CASCADE,
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE
);
CREATE TABLE person_settings (
    person INTEGER NOT NULL,
    channel TEXT NOT NULL,
    at_once JSON NOT NULL,
    digest JSON NOT NULL,
    quiet_from INTEGER,
    quiet_to INTEGER,
    units JSON NOT NULL,
    language VARCHAR(16) DEFAULT '' NOT NULL,
    PRIMARY KEY (person),
    FOREIGN KEY(person) REFERENCES people (id) ON DELETE CASCADE
);
CREATE TABLE photos (
    id VARCHAR(32) NOT NULL,
    site VARCHAR(40) NOT NULL,
    sheet INTEGER,
    item VARCHAR(32) NOT NULL,
    work INTEGER,
    width INTEGER NOT NULL,
    height INTEGER NOT NULL,
    size INTEGER NOT NULL,
    digest VARCHAR(64) NOT NULL,
    small_digest VARCHAR(64) NOT NULL,
    who VARCHAR(254) NOT NULL,
    taken DATETIME NOT NULL,
    added DATETIME NOT NULL,
    PRIMARY KEY (id),
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE,
    FOREIGN KEY(sheet) REFERENCES check_sheets (id) ON DELETE CASCADE,
    FOREIGN KEY(work) REFERENCES works (id) ON DELETE CASCADE
);
CREATE TABLE recovery_codes (
    hash VARCHAR(64) NOT NULL,
    person INTEGER NOT NULL,
    PRIMARY KEY (hash),
    FOREIGN KEY(person) REFERENCES people (id) ON DELETE CASCADE
);
CREATE TABLE saved_views (
    id INTEGER NOT NULL,
    person INTEGER NOT NULL,
    name VARCHAR(60) NOT NULL,
    address VARCHAR(600) NOT NULL,
    PRIMARY KEY (id),
    UNIQUE (person, name),
    FOREIGN KEY(person) REFERENCES people (id) ON DELETE CASCADE
);
CREATE TABLE sessions (
    hash VARCHAR(64) NOT NULL,
    person INTEGER,
    link VARCHAR(32),
    csrf VARCHAR(64) NOT NULL,
    created DATETIME NOT NULL,
    seen DATETIME NOT NULL,
    expires DATETIME NOT NULL,
    address VARCHAR(64) DEFAULT '' NOT NULL,
    device VARCHAR(120) DEFAULT '' NOT NULL,
    way VARCHAR(16) DEFAULT 'password' NOT NULL,
    pending BOOLEAN DEFAULT 0 NOT NULL,
    proved DATETIME,
    challenge VARCHAR(128),
    offer TEXT,
    PRIMARY KEY (hash),
    FOREIGN KEY(person) REFERENCES people (id) ON DELETE CASCADE,
    FOREIGN KEY(link) REFERENCES home_links (id) ON DELETE CASCADE
);
CREATE TABLE sites (
    id VARCHAR(40) NOT NULL,
    file TEXT NOT NULL,
    added DATETIME NOT NULL,
    updated DATETIME NOT NULL,
    PRIMARY KEY (id)
);
CREATE TABLE visits (
    id INTEGER NOT NULL,
    uid VARCHAR(32) NOT NULL,
    site VARCHAR(40) NOT NULL,
    start DATETIME NOT NULL,
    minutes INTEGER NOT NULL,
    person INTEGER,
    findings JSON NOT NULL,
    note TEXT NOT NULL,
    state VARCHAR(16) NOT NULL,
    sequence INTEGER NOT NULL,
    created DATETIME NOT NULL,
    created_by VARCHAR(254) NOT NULL,
    changed DATETIME NOT NULL,
    changed_by VARCHAR(254) NOT NULL,
    PRIMARY KEY (id),
    UNIQUE (uid),
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE,
    FOREIGN KEY(person) REFERENCES people (id) ON DELETE SET NULL
);
CREATE TABLE works (
    id INTEGER NOT NULL,
    site VARCHAR(40) NOT NULL,
    day DATE NOT NULL,
    what TEXT NOT NULL,
    finding VARCHAR(48),
    findings JSON,
    parts TEXT DEFAULT '' NOT NULL,
    minutes INTEGER,
    who VARCHAR(254) NOT NULL,
    created DATETIME NOT NULL,
    changed DATETIME,
    changed_by VARCHAR(254),
    PRIMARY KEY (id),
    FOREIGN KEY(site) REFERENCES sites (id) ON DELETE CASCADE
);
CREATE INDEX fleet_summaries_by_area ON fleet_summaries (no_area, area, tier, lost, sure, name, site);
CREATE INDEX fleet_summaries_by_cost ON fleet_summaries (cost, tier, lost, sure, name, site);
CREATE INDEX fleet_summaries_by_efficiency ON fleet_summaries (efficiency, tier, lost, sure, name, site);
CREATE INDEX fleet_summaries_by_heard ON fleet_summaries (heard, tier, lost, sure, name, site);
CREATE INDEX fleet_summaries_by_name ON fleet_summaries (name, tier, lost, sure, site);
CREATE INDEX fleet_summaries_by_since ON fleet_summaries (since, tier, lost, sure, name, site);
CREATE INDEX fleet_summaries_by_tier ON fleet_summaries (tier, lost, sure, name, site);
CREATE INDEX fleet_summaries_counted ON fleet_summaries (verdict, silent, waiting, visit, currency, money, heard);
CREATE INDEX fleet_summaries_stale ON fleet_summaries (good_until);
CREATE INDEX ix_alert_events_alert ON alert_events (alert);
CREATE INDEX ix_alerts_site ON alerts (site);
CREATE INDEX ix_alerts_state ON alerts (state);
CREATE INDEX ix_audit_site ON audit (site);
CREATE INDEX ix_audit_time ON audit (time);
CREATE INDEX ix_check_changes_sheet ON check_changes (sheet);
CREATE INDEX ix_consents_site ON consents (site);
CREATE INDEX ix_factors_person ON factors (person);
CREATE INDEX ix_file_imports_site ON file_imports (site);
CREATE INDEX ix_maintenance_site ON maintenance (site);
CREATE INDEX ix_notices_state ON notices (state);
CREATE INDEX ix_photos_sheet ON photos (sheet);
CREATE INDEX ix_photos_site ON photos (site);
CREATE INDEX ix_photos_work ON photos (work);
CREATE INDEX ix_recovery_codes_person ON recovery_codes (person);
CREATE INDEX ix_visits_person ON visits (person);
CREATE INDEX ix_visits_site ON visits (site);
CREATE INDEX ix_visits_start ON visits (start);
CREATE INDEX ix_works_site ON works (site);
