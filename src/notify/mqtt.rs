//! MQTT 3.1.1: a connection to a broker on which messages are published that it keeps (retained,
//! QoS 1). The packets are rumqttc's; the connection is ours, as it is for mail, so that TLS is the one of
//! every other connection.

use super::email::tls_connector;
use crate::secret::Secret;
use crate::tls::innermost;
use bytes::BytesMut;
use rumqttc::mqttbytes::v4::{
    Connect, ConnectReturnCode, LastWill, Login, Packet, PubAck, Publish, Subscribe,
    SubscribeFilter, SubscribeReasonCode, Unsubscribe,
};
use rumqttc::mqttbytes::{Error, QoS};
use rustls::pki_types::ServerName;
use std::collections::BTreeMap;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::time::timeout;

/// Longest wait for an answer.
const PATIENCE: Duration = Duration::from_secs(30);

/// How often the broker hears from us at least, s; it takes half as long again for being gone.
const KEEP_ALIVE_S: u16 = 120;

/// Largest packet, in bytes.
const LARGEST: usize = 256 * 1024;

/// A broker and how to sign in there.
#[derive(Debug)]
pub struct BrokerSettings {
    /// Host name.
    pub host: String,
    /// Port.
    pub port: u16,
    /// Whether the connection is encrypted.
    pub tls: bool,
    /// User name and password, if it wants them.
    pub login: Option<(String, Secret)>,
    /// Further root certificates (PEM).
    pub extra_ca_pem: Option<Vec<u8>>,
    /// Who we are: the broker has one connection for each.
    pub client_id: String,
    /// The topic and text that the broker publishes once we are gone without taking leave.
    pub will: Option<(String, &'static str)>,
}

/// What goes over the network, encrypted or not.
trait Wire: AsyncRead + AsyncWrite + Unpin + Send {}

impl<T: AsyncRead + AsyncWrite + Unpin + Send> Wire for T {}

/// A connection that is signed in.
pub struct Broker {
    wire: Box<dyn Wire>,
    received: BytesMut,
    last_id: u16,
}

impl Broker {
    /// Connects and signs in.
    ///
    /// # Errors
    /// A text that says what is wrong and what to do.
    pub async fn connect(settings: &BrokerSettings) -> Result<Self, String> {
        let wire = timeout(PATIENCE, wire(settings))
            .await
            .map_err(|_| "no connection within 30 s; see host and port".to_owned())??;
        let mut broker = Self {
            wire,
            received: BytesMut::new(),
            last_id: 0,
        };
        let mut connect = Connect::new(settings.client_id.as_str());
        connect.keep_alive = KEEP_ALIVE_S;
        connect.clean_session = true;
        connect.login = settings
            .login
            .as_ref()
            .map(|(name, password)| Login::new(name.as_str(), password.expose()));
        connect.last_will = settings
            .will
            .as_ref()
            .map(|(topic, text)| LastWill::new(topic.as_str(), *text, QoS::AtLeastOnce, true));
        broker.send(&Packet::Connect(connect)).await?;
        match broker.answer().await? {
            Packet::ConnAck(answer) => match answer.code {
                ConnectReturnCode::Success => Ok(broker),
                code => Err(refusal(code, settings)),
            },
            _ => Err("it does not answer as an MQTT broker does; see host and port".to_owned()),
        }
    }

    /// What the broker keeps under these filters, by topic; nothing of those that it does not let us read.
    ///
    /// # Errors
    /// A text that says what is wrong.
    pub async fn kept(&mut self, filters: &[String]) -> Result<BTreeMap<String, Vec<u8>>, String> {
        let each = filters.iter();
        let each = each.map(|filter| SubscribeFilter::new(filter.clone(), QoS::AtMostOnce));
        let mut subscribe = Subscribe::new_many(each);
        subscribe.pkid = self.next_id();
        self.send(&Packet::Subscribe(subscribe)).await?;
        // The broker answers in turn, so what it keeps has come once it answers this.
        self.send(&Packet::PingReq).await?;
        let mut kept = BTreeMap::new();
        loop {
            match self.answer().await? {
                Packet::Publish(one) if one.retain => {
                    kept.insert(one.topic, one.payload.to_vec());
                }
                Packet::SubAck(answer) => {
                    let codes = &answer.return_codes;
                    if codes.contains(&SubscribeReasonCode::Failure) {
                        tracing::warn!(
                            "the broker does not let hatchbell read {}: what is no longer configured stays there",
                            filters.join(", ")
                        );
                    }
                }
                Packet::PingResp => break,
                _ => {}
            }
        }
        let mut unsubscribe = Unsubscribe {
            pkid: self.next_id(),
            topics: filters.to_vec(),
        };
        unsubscribe.topics.dedup();
        self.send(&Packet::Unsubscribe(unsubscribe)).await?;
        Ok(kept)
    }

    /// Publishes a message for the broker to keep, an empty one so that it keeps none, and waits until it
    /// has it.
    ///
    /// # Errors
    /// A text that says what is wrong.
    pub async fn publish(&mut self, topic: &str, payload: &[u8]) -> Result<(), String> {
        let mut publish = Publish::new(topic, QoS::AtLeastOnce, payload);
        publish.retain = true;
        publish.pkid = self.next_id();
        let wanted = Packet::PubAck(PubAck::new(publish.pkid));
        self.send(&Packet::Publish(publish)).await?;
        while self.answer().await? != wanted {}
        Ok(())
    }

    /// Lets the broker know that we are there, and waits until it says so too.
    ///
    /// # Errors
    /// A text that says what is wrong.
    pub async fn ping(&mut self) -> Result<(), String> {
        self.send(&Packet::PingReq).await?;
        while self.answer().await? != Packet::PingResp {}
        Ok(())
    }

    /// Reads what the broker says unasked until the connection ends. May be given up at any time.
    ///
    /// # Errors
    /// A text that says how it ended.
    pub async fn end(&mut self) -> Result<(), String> {
        loop {
            self.packet().await?;
        }
    }

    /// Takes leave, so that the broker does not publish the last will.
    ///
    /// # Errors
    /// A text that says what is wrong.
    pub async fn leave(mut self) -> Result<(), String> {
        self.send(&Packet::Disconnect).await?;
        let closed = self.wire.shutdown().await;
        closed.map_err(|error| innermost(&error))
    }

    /// A number for a packet that is answered; never zero.
    fn next_id(&mut self) -> u16 {
        self.last_id = self.last_id.checked_add(1).unwrap_or(1);
        self.last_id
    }

    async fn send(&mut self, packet: &Packet) -> Result<(), String> {
        let mut bytes = BytesMut::new();
        packet
            .write(&mut bytes, LARGEST)
            .map_err(|error| format!("a packet cannot be made: {error}"))?;
        let sent = timeout(PATIENCE, async {
            self.wire.write_all(&bytes).await?;
            self.wire.flush().await
        });
        match sent.await {
            Ok(sent) => sent.map_err(|error| format!("the connection broke: {error}")),
            Err(_) => Err("it takes nothing any more".to_owned()),
        }
    }

    async fn answer(&mut self) -> Result<Packet, String> {
        match timeout(PATIENCE, self.packet()).await {
            Ok(packet) => packet,
            Err(_) => Err("no answer within 30 s".to_owned()),
        }
    }

    async fn packet(&mut self) -> Result<Packet, String> {
        loop {
            match Packet::read(&mut self.received, LARGEST) {
                Ok(packet) => return Ok(packet),
                Err(Error::InsufficientBytes(_)) => {}
                Err(error) => return Err(format!("it says what is no MQTT 3.1.1: {error}")),
            }
            match self.wire.read_buf(&mut self.received).await {
                Ok(0) => return Err("it closed the connection".to_owned()),
                Ok(_) => {}
                Err(error) => return Err(format!("the connection broke: {}", innermost(&error))),
            }
        }
    }
}

async fn wire(settings: &BrokerSettings) -> Result<Box<dyn Wire>, String> {
    let host = settings.host.trim_matches(['[', ']']);
    let stream = TcpStream::connect((host, settings.port))
        .await
        .map_err(|error| format!("cannot be reached: {error}; see host and port"))?;
    if !settings.tls {
        return Ok(Box::new(stream));
    }
    let connector = tls_connector(settings.extra_ca_pem.as_deref())?;
    let name = ServerName::try_from(host.to_owned())
        .map_err(|_| format!("{host} is no name that a certificate can be made out to"))?;
    let secured = connector.connect(name, stream).await;
    let secured = secured.map_err(|error| {
        format!(
            "no TLS: {}; see tls and port, and extra_ca_file for certificates of your own",
            innermost(&error)
        )
    })?;
    Ok(Box::new(secured))
}

fn refusal(code: ConnectReturnCode, settings: &BrokerSettings) -> String {
    match (code, &settings.login) {
        (ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized, login) => {
            match login {
                Some((name, _)) => format!(
                    "it refuses the user \"{name}\" or the password; see username and password_file under [mqtt]"
                ),
                None => {
                    "it wants a user and a password: give username and password_file under [mqtt]"
                        .to_owned()
                }
            }
        }
        (code, _) => format!("it refuses the connection: {code:?}"),
    }
}
